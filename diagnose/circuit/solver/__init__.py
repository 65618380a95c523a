"""The operating point of a network: which segment and gate position all rest in.

`network` is what is solved, `star_mesh` and its order do the arithmetic, `factored`
solves linear networks with it, `settling` moves segments and gates, and `point_solver`
puts them together. Tests compare it with ngspice twice, once at its own segments
(the linear algebra) and once with whole characteristics (the choice of segments).
"""
