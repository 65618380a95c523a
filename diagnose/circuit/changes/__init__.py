"""Operating points of a changed circuit, as small changes of a solved one."""
