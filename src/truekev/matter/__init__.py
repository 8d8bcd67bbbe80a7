"""Elements, materials, cross sections, stopping powers, scintillators."""
