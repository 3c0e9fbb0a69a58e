"""The pages: server-rendered sheets over the registry."""
