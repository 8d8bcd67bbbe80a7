"""Long validation runs; results go to docs/validation."""
