"""Wiring diagrams: the circuit as current paths side by side, and one path as text.

The symbols are drawn here, not by a library of schematic symbols: each is a few lines,
a library for hand-placed schematics has no relay coil and takes longer to load than the
whole diagram takes to draw (measured), and every text box and line has to be known so
that a test can show that none overlap.
"""
