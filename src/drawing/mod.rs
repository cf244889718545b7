//! Pages and pieces → lines by class and text, in millimetres: the one thing every writer reads.
