"""Which fault sets beyond single causes are worth solving."""
