"""Figures drawn from results (matplotlib); no physics."""
