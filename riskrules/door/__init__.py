"""Who gets in: people and roles, paired devices, and the encrypted front of the dashboard."""
