"""Has anything moved: daily checks judged for a step, temperature, a trend or one bad reading."""
