"""How parts fail, and what every reading is under a fault."""
