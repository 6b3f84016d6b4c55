"""A class: many trays measured, named, graded and shown, on top of what measures one."""
