"""The grammar of the knowledge files: one model for each kind of entry.

Each model checks what can be seen in one entry alone, and turns itself into the record
that the rest of the program knows. What the keys of an entry mean stands at the top of
its file in knowledge/. Leaves reading and positions to `knowledge_files`, and what one
entry says about another to `checks`.
"""
