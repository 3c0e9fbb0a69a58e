"""A make-up as it is recorded in the field: judged at once, kept, and followed by the joint's due date."""
