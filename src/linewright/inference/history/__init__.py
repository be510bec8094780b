"""What tests of many days say together: of a piece, and of a meter."""
