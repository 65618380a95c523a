"""The car as a circuit, and its operating point in every state.

`car` holds what a car is and `elements` the table of kinds; `parts` turn each kind into
branches, `model` a car with drawn values into a network. `solver` finds operating
points, and `changes` finds thousands of them as small changes of the sound car.
"""
