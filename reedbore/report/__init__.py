"""How it is told: words, tables, data, pictures."""
