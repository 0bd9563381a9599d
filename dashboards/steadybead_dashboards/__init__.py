"""The pages: contexts, templates and the browser files that we wrote."""
