"""From exposure to defect rate, expected leaks and classes: pure computation."""
