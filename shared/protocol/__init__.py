"""The two sockets where processes meet: the light guard's (``light``) and the imager's (``control``)."""
