"""Commands for developers: rates, benchmarks, samples, fuzzing."""
