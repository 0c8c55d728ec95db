"""Questions put to the model, one file each, and what serves them: command line, reports, pictures."""
