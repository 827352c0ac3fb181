"""Causes of a panel's faults, each supported, contradicted or not tested by what was measured."""
