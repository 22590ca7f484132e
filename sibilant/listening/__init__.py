"""A recording told without a caseload: checked, measured, drawn; what a prompt is expected to hold."""
