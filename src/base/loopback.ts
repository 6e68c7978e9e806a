/** Which hosts are this computer itself. */

/** A name or address of this computer's own loopback. */
export const isLoopback = (host: string): boolean =>
  host === 'localhost' || host === '::1' || host === '[::1]' || /^(::ffff:)?127(\.\d{1,3}){3}$/.test(host)
