"""What every part of tapetum speaks: pure computation, formats, settings, protocol messages and the frame bus."""
