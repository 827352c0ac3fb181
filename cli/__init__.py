"""The ``stringtrue`` command: options in, one library call, one output call."""
