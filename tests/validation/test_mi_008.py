"""
Directive 2014/32/EU, annex X (MI-008), chapter I: material measures of length, maximum permissible errors.

``a + b L`` in millimetres, L in metres rounded up to the next whole metre, and ``c`` besides where the length starts at
a hook or another end face. The worked values are as published for tapes of 3, 5, 8 and 10 m.
"""

from __future__ import annotations

import pytest

from alignment.instruments import CLASSES, class_zero, largest_error

PUBLISHED = {
    "I": {3: 0.4, 5: 0.6, 8: 0.9, 10: 1.1},
    "II": {3: 0.9, 5: 1.3, 8: 1.9, 10: 2.3},
    "III": {3: 1.8, 5: 2.6, 8: 3.8, 10: 4.6},
}


@pytest.mark.parametrize(("name", "metres"), [(name, m) for name, row in PUBLISHED.items() for m in row])
def test_worked_values(name, metres):
    assert largest_error(name, 1000.0 * metres) == pytest.approx(PUBLISHED[name][metres], abs=1e-9)


@pytest.mark.parametrize("name", PUBLISHED)
def test_length_counts_as_the_next_whole_metre(name):
    """Anything over 2 m and up to 3 m counts as 3 m; less than one metre counts as one."""
    assert largest_error(name, 2000.1) == pytest.approx(PUBLISHED[name][3], abs=1e-9)
    assert largest_error(name, 467.0) == largest_error(name, 1000.0)


@pytest.mark.parametrize("name", PUBLISHED)
def test_hook(name):
    """From a hook, c is added: 0.1, 0.2 and 0.3 mm."""
    more = largest_error(name, 3000.0, hook=True) - largest_error(name, 3000.0)
    assert more == pytest.approx({"I": 0.1, "II": 0.2, "III": 0.3}[name], abs=1e-9)


def test_zero_of_a_class_ii_tape():
    """Class II from its hook over less than a metre: 0.3 + 0.2 + 0.2 = 0.7 mm, rectangular: 0.7 / sqrt(3)."""
    assert class_zero("II", 466.725) == pytest.approx(0.404145, abs=0.5e-6)


def test_better_class_has_the_smaller_error():
    assert set(CLASSES) == set(PUBLISHED)
    for length in (100.0, 2500.0, 9999.0):
        assert largest_error("I", length) < largest_error("II", length) < largest_error("III", length)
