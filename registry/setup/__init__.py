"""Whether this installation is sound: Python, packages, folders, server, schema, and ledgers as they were written."""
