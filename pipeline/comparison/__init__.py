"""Two compounds side by side: what did a change of recipe do?"""
