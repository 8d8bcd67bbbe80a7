"""The whole spectrum fitted by one forward model: parts, model, fit, re-lock, judgement."""
