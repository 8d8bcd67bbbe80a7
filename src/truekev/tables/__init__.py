"""Data files, each beside its provenance, and the one loader that reads them."""
