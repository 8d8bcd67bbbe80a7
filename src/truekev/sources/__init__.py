"""Sources: stock, bodies, the words for everyday sources, what they emit on a date."""
