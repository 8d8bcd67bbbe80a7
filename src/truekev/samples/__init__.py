"""What is in a sample and how much: identification, activity, decision limits."""
