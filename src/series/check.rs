//! Looks at the start whether the server, the organisation and the bucket are there.
