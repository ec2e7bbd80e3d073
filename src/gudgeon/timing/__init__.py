"""How long motion takes: limits of axes and rules of controls as data, seconds out.

Pure numbers in mm, rad and s; an engine that knows no file, unit text or question.
"""
