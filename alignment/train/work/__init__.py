"""The job at the machine: a log as a filter, and the one next act that it asks for."""
