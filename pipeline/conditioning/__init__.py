"""Conditioning: what a rig's raw channels owe to its sensors, taken off before anything is reduced.

Zero readings and drag torque, the lag between torque and pressure, the low-pass filter, faults, and the energy balance
that tells whether the rig's torque, speed and inertia agree with each other. Pure functions on arrays, SI throughout.
"""
