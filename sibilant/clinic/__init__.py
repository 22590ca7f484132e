"""The verbs over a caseload, one file each; command line and page are two doors to them."""
