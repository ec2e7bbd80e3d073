"""In which order to cut: shortest sequences under precedence, with bounds that say how good.

Pure numbers; an engine that knows no file, unit text or question.
"""
