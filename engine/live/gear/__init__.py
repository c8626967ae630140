"""Work with the memory of the gear: identify, receive and send dumps, audition a sound."""
