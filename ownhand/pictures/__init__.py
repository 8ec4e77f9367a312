"""Pictures for people: the canvas and the contact sheet."""
