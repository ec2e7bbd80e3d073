"""The cell file: its entries, its reader, its faults.

`entry` declares what an entry is, `model` lists every entry, `reader` turns text into a `Cell` and
faults, `checks` finds contradictions between entries, `readings` reads tables of readings, `schema`
publishes the JSON Schema, `starter` writes a first file.
"""
