"""Money: worth today of a choice, when it is paid back, and how sure that is.

Pure functions on floats and arrays.  Sums are in the shop's money, rates are fractions a year,
times of work are in seconds, periods in years.  Money that flows in is positive, money paid out
negative.
"""
