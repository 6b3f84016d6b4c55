"""The commands of ``cutcheck``, one file each: they read options, call the library and print."""
