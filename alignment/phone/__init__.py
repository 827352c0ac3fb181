"""The page at the machine: the work loop in a browser, served from the computer on which the log is kept."""
