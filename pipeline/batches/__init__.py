"""Batches of a compound compared: friction, bite and wear, with three answers (equivalent, different,
undecided).
"""
