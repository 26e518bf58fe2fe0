"""The invented station *Eskerholm Growers' Cooperative*: its weather, lines, crew and trials, with known true values.

Nothing in here is taken from a real programme. A seed goes in, values come out, and the same seed gives the same
values. It sits beside the faces: it may use the floors below, and only the command that plays it imports it.
"""
