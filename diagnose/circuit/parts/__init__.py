"""How each kind of part carries current, one module for each group of kinds.

`branches` says what all of them become; `elements`, above, lists the kinds.
"""
