"""Local web application. No physics."""
