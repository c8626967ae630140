"""What tests share: rigs, receivers, whole shows in virtual time, the far ends of ports, and waiting."""
