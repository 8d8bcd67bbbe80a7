"""Printable sheets: one content model each, rendered as page and as PDF."""
