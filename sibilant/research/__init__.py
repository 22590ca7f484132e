"""The verbs of tables and studies."""
