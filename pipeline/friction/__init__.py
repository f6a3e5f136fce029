"""Friction of one test and of one compound: the map, its bands, the window, and what history did to it."""
