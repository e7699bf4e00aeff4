"""A photo comes in, trustworthy colour in millimetres goes out."""
