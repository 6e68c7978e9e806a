/** The parameters of a sequence in words, for `--set`. */
import type { SequenceInfo } from '../schema/application.ts'
import { renderTable } from './table.ts'

interface Property {
  default?: unknown; description?: string; enum?: readonly unknown[]; type?: string
  minimum?: number; maximum?: number; exclusiveMinimum?: number; exclusiveMaximum?: number
}

/** A table: name, default, what is allowed, and why. */
export function parameterLines({ parameters }: Pick<SequenceInfo, 'parameters'>): string[] {
  const { properties = {} } = (parameters ?? {}) as { properties?: Record<string, Property> }
  const rows = Object.entries(properties).map(([name, property]) => [
    name, property.default === undefined ? '–' : JSON.stringify(property.default), allowed(property),
    property.description ?? '',
  ])
  if (rows.length === 0) return ['It has no parameters.']
  return renderTable(['--set', 'default', 'allowed', 'meaning'].map(heading => ({ heading })), rows)
}

function allowed(property: Property): string {
  if (property.enum) return property.enum.map(String).join(', ')
  // A schema writes a whole number without bounds of its own with the largest there is.
  const { type = '', minimum, maximum } = property
  const most = maximum === undefined || maximum >= Number.MAX_SAFE_INTEGER ? undefined : maximum
  return [
    minimum === undefined ? '' : `${minimum} and more`,
    property.exclusiveMinimum === undefined ? '' : `above ${property.exclusiveMinimum}`,
    most === undefined ? '' : `at most ${most}`,
    property.exclusiveMaximum === undefined ? '' : `below ${property.exclusiveMaximum}`,
  ].filter(Boolean).join(', ') || type
}
