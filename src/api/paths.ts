/** Where the API stands, and where in it one stops the bench. */
import type { IncomingMessage } from 'node:http'

export const apiPrefix = '/api/v1'
export const stopRoutePath = '/stop'
export const stopPath = `${apiPrefix}${stopRoutePath}`

/** An address that stops: with or without a host before it, a slash or a question after it. */
const stopAddress = `(?:https?://[^/ ]*)?${stopPath}/?`
const asked = new RegExp(`^${stopAddress}(?:\\?|$)`, 'i')
/** The first line of a request that stops, or the beginning of one. */
const line = new RegExp(`^POST ${stopAddress}(?:[? \t\r]|$)`, 'i')
const lineBegun = new RegExp(`^POST ${stopAddress}[? \t\r]`, 'i')

export const isStop = ({ method, url }: Pick<IncomingMessage, 'method' | 'url'>): boolean =>
  method === 'POST' && asked.test(url ?? '')

/** `ended`: nothing more comes of this line. */
export const isStopLine = (text: string, ended: boolean): boolean => (ended ? line : lineBegun).test(text)
