"""Operating points of a changed circuit, as small changes of a solved one.

A fault changes a branch or two. What it does to all other nodes follows from the sound
car's solution, without solving the network again: the compensation method of
contingency analysis in power engineering. Words that all modules here share:

base case
    The car as it is, solved: one operating point for each draw. Operating states are
    stacked along the draws, so one base case covers them all.
draw
    One set of values within the tolerances, in one operating state.
block
    The draws of one operating state, which follow each other.
point
    One operating point to be found: a draw, and the branches that are changed in it.
slot
    Room for one changed branch of a point; -1 as branch marks one that is not used.
run
    Points that differ in nothing but the draw, all of one block.
active branch
    One whose line may change from point to point: bent, gated, a source, or controlled
    from elsewhere.
line
    What a branch does within one segment of its curve: siemens times its control
    volts, and fixed amps.
settle, rest
    To move segments and gates until nothing changes; then a point rests.
from rest
    With every gate off at first, as before the key was turned.
representative
    A point that is followed in place of others that are nearly alike.
"""
