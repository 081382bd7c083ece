//! Merkle tree of RFC 6962 §2.1 over SHA-256.
