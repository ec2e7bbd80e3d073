"""The faces: show answers at the terminal and on paper; compute nothing.

`terminal` is the command ``gudgeon``; `plain` lays an answer out in 80 columns of plain text;
`report` makes one HTML file that opens offline and prints; `wording` holds what all say alike.
"""
