"""The whole job on invented clients, and an invented corpus."""
