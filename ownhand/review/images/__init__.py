"""Pictures of ink, of one attempt and of all attempts at a character."""
