"""Heat in a brake disc: stored heat, surface temperature, conduction and cooling.

Pure functions in SI (K, s, J, W/m^2) shared by the wear laws, the duty projection and the demo's simulator.
"""
