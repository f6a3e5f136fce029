"""Faults that the row of a test's stops shows: against each other, the schedule, the energy balance and the heat."""
