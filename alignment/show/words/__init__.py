"""Every sentence that a person reads of a result."""
