"""Rule packs and region profiles: read, checked, and ready to compile."""
