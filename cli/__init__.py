"""
The ``stringtrue`` command: options in, one library call, one output call.

A folder of its own in a checkout. A wheel has it as ``alignment.cli``, since a top-level ``cli`` there would be
replaced by any other package's; its modules therefore import each other relatively.
"""
