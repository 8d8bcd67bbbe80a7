"""The pages, by topic; each module has a `router`."""
