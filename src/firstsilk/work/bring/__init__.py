"""How does a station bring its own lines, seed, rows, weather and trials into the books?"""
