"""How dates are written in each language that the program speaks, where Django writes them another way."""
