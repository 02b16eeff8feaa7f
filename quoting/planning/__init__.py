"""Planning: every way to make each part, what each way counts to, and the cheapest for the whole job."""
