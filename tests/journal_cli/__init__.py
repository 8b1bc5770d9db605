"""The journal commands, run the way people do."""
