"""The verbs, one file each; command line and page are two doors to them."""
