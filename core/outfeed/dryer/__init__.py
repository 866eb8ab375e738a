"""The machine: its description, the column model and what follows from it."""
