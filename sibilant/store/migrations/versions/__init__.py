"""One file a revision; the revision's number is the caseload's format."""
