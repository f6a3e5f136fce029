"""Friction that follows the rubbing face: a law fitted inside the stops, as a rival of the map over stop means."""
