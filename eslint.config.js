import tseslint from 'typescript-eslint'

/** Clocks other than base/clock.ts are forbidden: a second source of time breaks virtual nights. */
const bannedTime = ['setTimeout', 'setInterval', 'clearTimeout', 'clearInterval']
  .map(name => ({ name, message: 'Use the Clock of base/clock.ts.' }))

export default tseslint.config(
  { ignores: ['dist/', 'node_modules/', 'coverage/'] },
  {
    files: ['**/*.ts'],
    extends: [tseslint.configs.base],
    languageOptions: { parserOptions: { projectService: true } },
    rules: {
      '@typescript-eslint/no-floating-promises': 'error',
      '@typescript-eslint/no-misused-promises': 'error',
      '@typescript-eslint/switch-exhaustiveness-check': ['error', { considerDefaultExhaustiveForUnions: true }],
      '@typescript-eslint/no-explicit-any': 'error',
      '@typescript-eslint/await-thenable': 'error',
      '@typescript-eslint/consistent-type-imports': 'error',
      'max-lines-per-function': ['error', { max: 70 }],
      'max-lines': ['error', { max: 400 }],
      eqeqeq: 'error',
      'no-console': 'off',
    },
  },
  {
    files: ['src/**/*.ts'],
    ignores: ['src/base/clock.ts', 'src/base/led-clock.ts'],
    rules: {
      'no-restricted-globals': ['error', ...bannedTime, { name: 'performance', message: 'Use the Clock.' }],
      'no-restricted-properties': ['error', { object: 'Date', property: 'now', message: 'Use the Clock.' }],
    },
  },
  {
    files: ['tests/**/*.ts'],
    rules: { 'max-lines-per-function': 'off' },
  },
)
