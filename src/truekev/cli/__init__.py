"""Commands: each parses its words, calls one job, prints the result. No physics."""
