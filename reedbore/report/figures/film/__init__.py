"""The moving picture of a take: bore, reed and beats, slowed down."""
