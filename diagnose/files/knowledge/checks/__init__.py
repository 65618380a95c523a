"""What one knowledge file says about another: every name must exist, once.

Each check is one small function: it is given all files and yields what it finds wrong.
They run once every file is valid in itself. Leaves the grammar of a single entry to
`models`, and reading to `knowledge_files`.
"""
