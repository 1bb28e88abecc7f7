"""UDP and TCP sockets, destinations, limits on connections, and the framing of packets on a stream."""
