"""The grammar of a car file, and its problems in words and with positions."""
