"""Pages for people, asked without a browser and with one."""
