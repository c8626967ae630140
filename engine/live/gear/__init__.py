"""Work with the instruments: identify them, receive and send dumps, audition a sound."""
